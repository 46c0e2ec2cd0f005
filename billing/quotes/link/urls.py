"""The customer's pages. Their root gives `balance_of`, which stands above quotes."""

from django.urls import path

from billing.quotes.link import views

app_name = "link"
urlpatterns = [
    path("<str:token>/", views.page, name="page"),
    path("<str:token>/quote.pdf", views.paper, name="paper"),
]
