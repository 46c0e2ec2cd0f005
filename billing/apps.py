from django.apps import AppConfig


class Billing(AppConfig):
    name = "billing"
