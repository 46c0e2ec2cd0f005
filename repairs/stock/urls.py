from django.urls import path

from repairs.stock import order_views, supplier_views, views

app_name = "stock"
urlpatterns = [
    path("", views.parts, name="parts"),
    path("labels/", views.labels, name="labels"),
    path("<int:pk>/label/", views.label, name="label"),
    path("to-order/", order_views.to_order, name="to_order"),
    path("to-order/list.<str:format>", order_views.order_file, name="order_file"),
    path("orders/<int:pk>/cancel/", order_views.cancel_order, name="cancel_order"),
    path("suppliers/", supplier_views.suppliers, name="suppliers"),
    path("suppliers/<int:pk>/", supplier_views.supplier, name="supplier"),
    path(
        "suppliers/<int:pk>/change/",
        supplier_views.change_supplier,
        name="change_supplier",
    ),
    path("<int:pk>/wanted/", order_views.put_on_order_list, name="put_on_order_list"),
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
