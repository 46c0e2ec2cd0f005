from django.urls import path

from repairs.month import views

app_name = "month"
urlpatterns = [
    path("comebacks.pdf", views.document, name="pdf"),
    path("month/", views.month, name="month"),
    path("month/<int:year>/<int:number>/", views.handed_over, name="handed_over"),
    path("suppliers/<int:pk>/lots/", views.lots, name="lots"),
    path("warnings/", views.warnings, name="warnings"),
    path("deliveries/", views.deliveries, name="deliveries"),
    path("deliveries/<int:pk>/", views.delivery, name="delivery"),
    path("models/<int:pk>/", views.model, name="model"),
    path("boards/<int:pk>/", views.board, name="board"),
]
