app_name = "comebacks"
urlpatterns = []
