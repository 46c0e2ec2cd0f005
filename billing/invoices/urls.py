app_name = "invoices"
urlpatterns = []
