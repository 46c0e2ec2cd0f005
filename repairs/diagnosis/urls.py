from django.urls import path

from repairs.diagnosis import views

app_name = "diagnosis"
urlpatterns = [
    path("likely/", views.likely, name="likely"),
    path("fault/<int:pk>/fixes/", views.fixes, name="fixes"),
    path("job/<int:pk>/", views.panel, name="panel"),
    path("job/<int:pk>/check/", views.record_result, name="record_result"),
    path("job/<int:pk>/fault/<int:fault>/", views.cases, name="cases"),
]
