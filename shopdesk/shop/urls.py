app_name = "shop"
urlpatterns = []
