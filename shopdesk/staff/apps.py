from django.apps import AppConfig


class Staff(AppConfig):
    name = "shopdesk.staff"
    label = "staff"
