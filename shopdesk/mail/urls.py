from django.urls import path

from shopdesk.mail import views

app_name = "mail"
urlpatterns = [
    path("", views.outbox, name="outbox"),
    path("<int:pk>/", views.email, name="email"),
    path("<int:pk>/resend/", views.resend, name="resend"),
    path("<int:pk>/drop/", views.discard, name="discard"),
    path("papers/<int:pk>/", views.attachment, name="attachment"),
]
