from django.apps import AppConfig


class Building(AppConfig):
    name = "shopdesk"
