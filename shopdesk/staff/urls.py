from django.urls import path

from shopdesk.staff import signing_in, views

app_name = "staff"
urlpatterns = [
    path("", views.people, name="people"),
    path("sign-in/", signing_in.sign_in, name="sign_in"),
    path("sign-out/", signing_in.sign_out, name="sign_out"),
    path("set-up/", signing_in.set_up, name="set_up"),
    path("confirm/", signing_in.confirm, name="confirm"),
    path("password/", signing_in.password, name="password"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.person, name="person"),
    path("<int:pk>/reset/", views.reset, name="reset"),
]
