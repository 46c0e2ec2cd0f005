app_name = "intake"
urlpatterns = []
