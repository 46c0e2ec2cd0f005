app_name = "staff"
urlpatterns = []
