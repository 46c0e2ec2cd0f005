from django.urls import path

from repairs.bench import views

app_name = "bench"

urlpatterns = [
    path("", views.job_list, name="list"),
    path("waiting-for-parts/", views.waiting, name="waiting"),
    path("finished/", views.finished, name="finished"),
    path("<int:pk>/", views.job, name="job"),
    # Parts of the page.
    path("<int:pk>/head/", views.save_details, name="save_details"),
    path("<int:pk>/findings/", views.save_findings, name="save_findings"),
    path("<int:pk>/name_fault/", views.add_fault, name="add_fault"),
    path("<int:pk>/new_fault/", views.create_fault, name="create_fault"),
    path("<int:pk>/reading/", views.add_reading, name="add_reading"),
    path("<int:pk>/start_timer/", views.start_timer, name="start_timer"),
    path("<int:pk>/book_minutes/", views.add_labour, name="add_labour"),
    path("<int:pk>/part/", views.use_part, name="use_part"),
    path("<int:pk>/reserve_part/", views.reserve_part, name="reserve_part"),
    path(
        "<int:pk>/unstocked_part/", views.add_unstocked_part, name="add_unstocked_part"
    ),
    path("<int:pk>/find_part/", views.find_part, name="find_part"),
    path("<int:pk>/find_fault/", views.find_fault, name="find_fault"),
    path("<int:pk>/find_fix/", views.find_fix, name="find_fix"),
    path("<int:pk>/battery/", views.set_battery, name="set_battery"),
    # The same of one repair, reading, timer or part: its own number stands in front.
    path("of/<int:pk>/drop_fault/", views.remove_fault, name="remove_fault"),
    path("of/<int:pk>/choose_fix/", views.select_fix, name="select_fix"),
    path("of/<int:pk>/new_fix/", views.create_fix, name="create_fix"),
    path("of/<int:pk>/give_up/", views.mark_not_repaired, name="mark_not_repaired"),
    path("of/<int:pk>/take_up_again/", views.resume_repair, name="resume_repair"),
    path("of/<int:pk>/drop_reading/", views.remove_reading, name="remove_reading"),
    path("of/<int:pk>/stop_timer/", views.stop_timer, name="stop_timer"),
    path("of/<int:pk>/drop_minutes/", views.remove_labour, name="remove_labour"),
    path("of/<int:pk>/give_back/", views.put_back_part, name="put_back_part"),
    path(
        "of/<int:pk>/drop_unstocked_part/",
        views.remove_unstocked_part,
        name="remove_unstocked_part",
    ),
    path("of/<int:pk>/release_part/", views.release_part, name="release_part"),
    path("of/<int:pk>/proof/", views.record_final_test, name="record_final_test"),
    path(
        "of/<int:pk>/tries_required/",
        views.set_tries_required,
        name="set_tries_required",
    ),
    # Steps of the job: they lead to the whole page.
    path("<int:pk>/diagnose/", views.diagnose, name="diagnose"),
    path(
        "<int:pk>/start_under_cover/",
        views.start_warranty_repair,
        name="start_warranty_repair",
    ),
    path("<int:pk>/revise/", views.revise, name="revise"),
    path("<int:pk>/repair_done/", views.mark_repaired, name="mark_repaired"),
    path("<int:pk>/prove/", views.complete_final_test, name="complete_final_test"),
    path("<int:pk>/back_to_bench/", views.fail_final_test, name="fail_final_test"),
    path("<int:pk>/close/", views.close, name="close"),
    path(
        "<int:pk>/close_otherwise/",
        views.close_without_repair,
        name="close_without_repair",
    ),
    path("<int:pk>/close_declined/", views.close_declined, name="close_declined"),
    path("<int:pk>/reopen/", views.reopen, name="reopen"),
]
