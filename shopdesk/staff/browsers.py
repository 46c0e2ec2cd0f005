"""Which browser a request came from, in words."""

# The first mark found names it: later ones are claimed by earlier ones, too.
BROWSERS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser/", "Samsung Internet"),
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("CriOS/", "Chrome"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)
SYSTEMS = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("CrOS", "ChromeOS"),
    ("Windows", "Windows"),
    ("Mac OS X", "Mac"),
    ("Linux", "Linux"),
)


def name_browser(user_agent: str) -> str:
    """Return such as `Firefox on Windows`, as far as the browser says so."""
    browser = _first(BROWSERS, user_agent) or "Unknown browser"
    system = _first(SYSTEMS, user_agent)
    return f"{browser} on {system}" if system else browser


def _first(marks: tuple[tuple[str, str], ...], text: str) -> str:
    return next((name for mark, name in marks if mark in text), "")
