from django.urls import path

from billing.quotes import views

app_name = "quotes"
urlpatterns = [
    path("", views.all_quotes, name="all"),
    path("job/<int:pk>/", views.for_job, name="for_job"),
    path("<int:pk>/", views.quote, name="quote"),
    path("<int:pk>/recalculate/", views.recalculate, name="recalculate"),
    path("<int:pk>/send/", views.send, name="send"),
    path("<int:pk>/answer/", views.answer, name="answer"),
    path("<int:pk>/revise/", views.revise, name="revise"),
    path("<int:pk>/mail/", views.mail, name="mail"),
    path("<int:pk>/paper/", views.paper, name="paper"),
]
