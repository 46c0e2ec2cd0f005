from django.urls import path

from billing.repair_form import views

app_name = "repair_form"
urlpatterns = [
    path("of-job/<int:pk>/", views.for_job, name="for_job"),
    path("make/<int:pk>/", views.make, name="make"),
    path("<int:pk>/", views.form, name="form"),
    path("<int:pk>/give/", views.issue, name="issue"),
    path("<int:pk>/drop/", views.delete, name="delete"),
    path("<int:pk>/accept/", views.accept, name="accept"),
    path("<int:pk>/mail/", views.mail, name="mail"),
    path("<int:pk>/paper/", views.paper, name="paper"),
]
