from django.urls import path

from repairs.sheet_import import views

app_name = "sheet_import"
urlpatterns = [
    path("", views.overview, name="all"),
    path("start/", views.start, name="start"),
    path("uncoded/", views.uncoded, name="uncoded"),
    path("uncoded/declined/", views.reconsider, name="reconsider"),
    path("<int:pk>/", views.columns, name="columns"),
    path("<int:pk>/values/", views.values, name="values"),
    path("<int:pk>/faults/", views.groups, {"of": "faults"}, name="faults"),
    path("<int:pk>/fixes/", views.groups, {"of": "fixes"}, name="fixes"),
    path("<int:pk>/preview/", views.preview, name="preview"),
    path("<int:pk>/confirm/", views.confirm, name="confirm"),
    path("<int:pk>/decisions/", views.decisions, name="decisions"),
    path("<int:pk>/delete/", views.delete, name="delete"),
    path("done/<int:pk>/", views.result, name="result"),
    path("done/<int:pk>/undo/", views.undo, name="undo"),
]
