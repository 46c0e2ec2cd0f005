app_name = "customers"
urlpatterns = []
