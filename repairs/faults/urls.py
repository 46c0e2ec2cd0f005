from django.urls import path

from repairs.faults import views

app_name = "faults"
urlpatterns = [
    path("", views.book, name="book"),
    path("starter/", views.starter, name="starter"),
    path("file/", views.file, name="file"),
    path("file/csv/", views.csv, name="csv"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.fault, name="fault"),
    path("<int:pk>/change/", views.change, name="change"),
    path("<int:pk>/add-fix/", views.add_fix, name="add_fix"),
    path("fixes/<int:pk>/", views.change_fix, name="change_fix"),
    path("symptoms/", views.symptoms, name="symptoms"),
    path("symptoms/add/", views.add_symptom, name="add_symptom"),
    path("symptoms/<int:pk>/", views.change_symptom, name="change_symptom"),
    path("checks/", views.checks, name="checks"),
    path("checks/add/", views.add_check, name="add_check"),
    path("checks/<int:pk>/", views.change_check, name="change_check"),
]
