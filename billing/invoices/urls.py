from django.urls import path

from billing.invoices import views
from billing.invoices.payments import views as payments

app_name = "invoices"
urlpatterns = [
    path("", views.all_invoices, name="all"),
    path("<int:pk>/", views.invoice, name="invoice"),
    path("<int:pk>/credit/", views.credit, name="credit"),
    path("<int:pk>/paper/", views.paper, name="paper"),
    path("<int:pk>/ubl/", views.ubl, name="ubl"),
    path("job/<int:pk>/", payments.for_job, name="for_job"),
    path("job/<int:pk>/bill/", views.bill, name="bill"),
    path("receipt/<int:pk>/", payments.receipt, name="receipt"),
]
