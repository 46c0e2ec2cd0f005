app_name = "stock"
urlpatterns = []
