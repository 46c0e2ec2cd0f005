from django.apps import AppConfig


class ShopFacts(AppConfig):
    name = "shopdesk.shop"
    label = "shop"
