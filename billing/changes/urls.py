from django.urls import path

from billing.changes import views

app_name = "changes"
urlpatterns = [
    path("job/<int:pk>/", views.for_job, name="for_job"),
    path("<int:pk>/answer/", views.answer, name="answer"),
    path("so-far/<int:pk>/", views.so_far, name="so_far"),
]
