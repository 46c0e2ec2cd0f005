from django.apps import AppConfig

from billing.quotes.link.masking import mask_records


class Billing(AppConfig):
    name = "billing"

    def ready(self):
        mask_records()
