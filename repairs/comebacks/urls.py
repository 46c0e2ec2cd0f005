from django.urls import path

from repairs.comebacks import views

app_name = "comebacks"
urlpatterns = [
    path("", views.table, name="table"),
    path("<int:fault>/<int:fix>/", views.pair, name="pair"),
    path("fault/<int:pk>/", views.fault_record, name="fault_record"),
]
