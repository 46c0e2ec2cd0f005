from django.urls import path

from shopdesk.staff import views

app_name = "staff"
urlpatterns = [
    path("", views.people, name="people"),
    path("sign-in/", views.sign_in, name="sign_in"),
    path("sign-out/", views.sign_out, name="sign_out"),
    path("set-up/", views.set_up, name="set_up"),
    path("password/", views.password, name="password"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.person, name="person"),
    path("<int:pk>/reset/", views.reset, name="reset"),
]
