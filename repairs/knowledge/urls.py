from django.urls import path

from repairs.knowledge import fault_views, views

app_name = "knowledge"
urlpatterns = [
    path("<int:fault>/<int:fix>/", views.pair, name="pair"),
    path("<int:fault>/<int:fix>/declare/", views.set_fix_type, name="set_fix_type"),
    path("<int:fault>/<int:fix>/verdict/", views.verdict, name="verdict"),
    path("standings/", views.standings, name="standings"),
    path("notes/", fault_views.notes, name="notes"),
    path("notes/<int:pk>/", fault_views.change_note, name="change_note"),
    path("notes/<int:pk>/remove/", fault_views.remove_note, name="remove_note"),
    path("fault/<int:pk>/notes/add/", fault_views.add_note, name="add_note"),
    path("fault/<int:pk>/readings/", fault_views.readings, name="readings"),
    path("fault/<int:pk>/", views.fault_record, name="fault_record"),
]
