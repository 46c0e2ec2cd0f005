from django.urls import path

from repairs.comebacks import views

app_name = "comebacks"
urlpatterns = [
    path("", views.table, name="table"),
    path("comebacks.csv", views.download, {"format": "csv"}, name="csv"),
    path("comebacks.json", views.download, {"format": "json"}, name="json"),
    path("comebacks.xlsx", views.download, {"format": "xlsx"}, name="xlsx"),
    path("repairs/", views.repairs, name="repairs"),
    path("redone/", views.comebacks, name="comebacks"),
]
