app_name = "faults"
urlpatterns = []
