"""The addresses of this room.

Its views are imported when one is first asked for: what they reckon with takes a second
or two to import, which no other page and no other command should wait for.
"""

from django.urls import path
from django.utils.module_loading import import_string


def late(name, *, within="repairs.comebacks"):
    """The view of that name, imported by the first request for it."""

    def view(request, **asked):
        return import_string(f"{within}.views.{name}")(request, **asked)

    view.__name__ = name
    return view


def of_month(name):
    return late(name, within="repairs.comebacks.month")


def behind(name):
    return late(name, within="repairs.comebacks.behind")


app_name = "comebacks"
urlpatterns = [
    path("", late("table"), name="table"),
    path("comebacks.csv", late("download"), {"format": "csv"}, name="csv"),
    path("comebacks.json", late("download"), {"format": "json"}, name="json"),
    path("comebacks.pdf", late("paper"), name="pdf"),
    path("<int:fault>/<int:fix>/", late("pair"), name="pair"),
    path("<int:fault>/<int:fix>/declare/", late("declare"), name="declare"),
    path("<int:fault>/<int:fix>/verdict/", late("verdict"), name="verdict"),
    path("fault/<int:pk>/", late("fault_record"), name="fault_record"),
    path("repairs/", behind("repairs"), name="repairs"),
    path("redone/", behind("redone"), name="redone"),
    path("month/", of_month("month"), name="month"),
    path("month/<int:year>/<int:number>/", of_month("handed_back"), name="handed_back"),
    path("deliveries/", of_month("deliveries"), name="deliveries"),
    path("deliveries/<int:pk>/", of_month("delivery"), name="delivery"),
    path("models/<int:pk>/", of_month("model"), name="model"),
    path("boards/<int:pk>/", of_month("board"), name="board"),
]
