from django.urls import path

from shopdesk.staff import own_account, signing_in, views

app_name = "staff"
urlpatterns = [
    path("", views.people, name="people"),
    path("sign-in/", signing_in.sign_in, name="sign_in"),
    path("sign-in/code/", signing_in.code, name="code"),
    path("sign-out/", signing_in.sign_out, name="sign_out"),
    path("switch/", signing_in.switch, name="switch"),
    path("set-up/", signing_in.set_up, name="set_up"),
    path("confirm/", signing_in.confirm, name="confirm"),
    path("password/", signing_in.password, name="password"),
    path("second-factor/", own_account.second_factor, name="second_factor"),
    path(
        "second-factor/start/",
        own_account.start_second_factor,
        name="start_second_factor",
    ),
    path(
        "second-factor/activate/",
        own_account.activate_second_factor,
        name="activate_second_factor",
    ),
    path(
        "second-factor/remove/",
        own_account.remove_second_factor,
        name="remove_second_factor",
    ),
    path(
        "second-factor/recovery-codes/",
        own_account.recovery_codes,
        name="recovery_codes",
    ),
    path("language/", own_account.language, name="language"),
    path("devices/", own_account.own_devices, name="devices"),
    path("devices/end/", own_account.end_device, name="end_device"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.person, name="person"),
    path("<int:pk>/reset/", views.reset, name="reset"),
    path("<int:pk>/end-sessions/", views.end_member_sessions, name="end_sessions"),
    path(
        "<int:pk>/remove-second-factor/",
        views.remove_member_factor,
        name="remove_member_factor",
    ),
]
