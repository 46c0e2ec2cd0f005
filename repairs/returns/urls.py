from django.urls import path

from repairs.returns import views

app_name = "returns"
urlpatterns = [
    path("<int:pk>/", views.assess, name="assess"),
    path("<int:pk>/earlier/", views.earlier, name="earlier"),
    path("stopgap/<int:pk>/", views.record_answer, name="record_answer"),
]
