app_name = "bench"
urlpatterns = []
