app_name = "quotes"
urlpatterns = []
