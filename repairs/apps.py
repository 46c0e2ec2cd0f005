from django.apps import AppConfig


class Repairs(AppConfig):
    name = "repairs"
