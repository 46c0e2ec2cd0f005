from django.urls import path

from repairs.bench import views
from repairs.bench.steps import views as steps

app_name = "bench"

OF_A_JOB = """
    head findings name_fault new_fault reading start_timer book_minutes part find_part
""".split()
STEPS = """
    diagnose start_under_cover revise repair_done prove back_to_bench close
    close_otherwise close_declined reopen
""".split()
# What is asked of one repair, reading, timer or part: its own number stands in front.
OF_ONE = """
    drop_fault choose_fix new_fix give_up take_up_again drop_reading stop_timer
    drop_minutes give_back proof
""".split()

urlpatterns = [
    path("", views.mine, name="mine"),
    path("<int:pk>/", views.job, name="job"),
    *(path(f"<int:pk>/{n}/", getattr(views, n), name=n) for n in OF_A_JOB),
    *(path(f"<int:pk>/{n}/", getattr(steps, n), name=n) for n in STEPS),
    *(path(f"of/<int:pk>/{n}/", getattr(views, n), name=n) for n in OF_ONE),
]
