from django.urls import path

from billing.invoices import views

app_name = "invoices"
urlpatterns = [
    path("", views.all_invoices, name="all"),
    path("<int:pk>/", views.invoice, name="invoice"),
    path("<int:pk>/credit/", views.credit, name="credit"),
    path("<int:pk>/paper/", views.paper, name="paper"),
    path("<int:pk>/ubl/", views.ubl, name="ubl"),
    path("job/<int:pk>/", views.for_job, name="for_job"),
    path("job/<int:pk>/bill/", views.create, name="create"),
    path("receipt/<int:pk>/", views.receipt, name="receipt"),
]
