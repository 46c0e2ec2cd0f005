from django.urls import path

from billing.handback import views

app_name = "handback"
urlpatterns = [
    path("<int:pk>/", views.hand_back, name="hand_back"),
    path("<int:pk>/cover/", views.cover, name="cover"),
]
