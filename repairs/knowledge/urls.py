from django.urls import path

from repairs.knowledge import views

app_name = "knowledge"
urlpatterns = [
    path("<int:fault>/<int:fix>/", views.pair, name="pair"),
    path("<int:fault>/<int:fix>/declare/", views.set_fix_type, name="set_fix_type"),
    path("<int:fault>/<int:fix>/verdict/", views.verdict, name="verdict"),
    path("standings/", views.standings, name="standings"),
    path("fault/<int:pk>/", views.fault_record, name="fault_record"),
]
