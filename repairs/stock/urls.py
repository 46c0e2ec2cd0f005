from django.urls import path

from repairs.stock import views

app_name = "stock"
urlpatterns = [
    path("", views.parts, name="parts"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.part, name="part"),
    path("<int:pk>/change/", views.change, name="change"),
    path("<int:pk>/receive/", views.receive, name="receive"),
    path("deliveries/<int:pk>/cost/", views.enter_cost, name="enter_cost"),
    path("deliveries/<int:pk>/block/", views.block, name="block"),
    path("deliveries/<int:pk>/release/", views.release, name="release"),
    path("<int:pk>/count/", views.count, name="count"),
    path("<int:pk>/scrap/", views.scrap, name="scrap"),
]
