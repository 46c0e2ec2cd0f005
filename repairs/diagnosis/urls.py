from django.urls import path

from repairs.diagnosis import merge_views, views

app_name = "diagnosis"
urlpatterns = [
    path("likely/", views.likely, name="likely"),
    path("fault/<int:pk>/fixes/", views.fixes, name="fixes"),
    path("fault/<int:pk>/merge/", merge_views.merge_faults, name="merge_faults"),
    path("fix/<int:pk>/merge/", merge_views.merge_fixes, name="merge_fixes"),
    path("job/<int:pk>/", views.panel, name="panel"),
    path("job/<int:pk>/check/", views.record_result, name="record_result"),
    path("job/<int:pk>/fault/<int:fault>/", views.cases, name="cases"),
]
