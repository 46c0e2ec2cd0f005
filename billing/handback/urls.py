app_name = "handback"
urlpatterns = []
