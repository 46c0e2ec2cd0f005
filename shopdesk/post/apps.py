from django.apps import AppConfig


class Post(AppConfig):
    name = "shopdesk.post"
    label = "post"
