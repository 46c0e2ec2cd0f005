app_name = "returns"
urlpatterns = []
