"""The front door: what needs a hand today."""

from django.shortcuts import render


def today(request):
    """What needs a hand now."""
    return render(request, "shopdesk/today.html")
