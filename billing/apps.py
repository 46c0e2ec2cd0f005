from django.apps import AppConfig

from billing.customer_page.log_masking import mask_records


class BillingConfig(AppConfig):
    name = "billing"

    def ready(self):
        mask_records()
