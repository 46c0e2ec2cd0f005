from django.urls import path

from billing.quotes.link.desk import views

app_name = "links"
urlpatterns = [
    path("job/<int:pk>/", views.of_job, name="of_job"),
    path("<int:pk>/revoke/", views.revoke, name="revoke"),
    path("sign/<int:pk>/", views.sign_here, name="sign_here"),
]
