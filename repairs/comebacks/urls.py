from django.urls import path

from repairs.comebacks import views
from repairs.comebacks.month import views as month

app_name = "comebacks"
urlpatterns = [
    path("", views.table, name="table"),
    path("comebacks.csv", views.download, {"format": "csv"}, name="csv"),
    path("comebacks.json", views.download, {"format": "json"}, name="json"),
    path("comebacks.pdf", views.paper, name="pdf"),
    path("<int:fault>/<int:fix>/", views.pair, name="pair"),
    path("<int:fault>/<int:fix>/declare/", views.declare, name="declare"),
    path("<int:fault>/<int:fix>/verdict/", views.verdict, name="verdict"),
    path("fault/<int:pk>/", views.fault_record, name="fault_record"),
    path("month/", month.month, name="month"),
    path("month/<int:year>/<int:number>/", month.handed_back, name="handed_back"),
    path("deliveries/", month.deliveries, name="deliveries"),
    path("deliveries/<int:pk>/", month.delivery, name="delivery"),
    path("models/<int:pk>/", month.model, name="model"),
    path("boards/<int:pk>/", month.board, name="board"),
]
