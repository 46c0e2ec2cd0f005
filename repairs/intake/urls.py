from django.urls import path

from repairs.intake import views

app_name = "intake"
urlpatterns = [
    path("", views.book_in, name="book_in"),
    path("customer/", views.find_customer, name="find_customer"),
    path("device/", views.find_device, name="find_device"),
    path("<int:pk>/", views.booked, name="booked"),
    path("<int:pk>/arrived/", views.record_arrival, name="record_arrival"),
    path("<int:pk>/slip/", views.slip, name="slip"),
    path("<int:pk>/label/", views.label, name="label"),
    path("<int:pk>/code/", views.show_code, name="show_code"),
]
