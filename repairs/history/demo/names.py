"""The invented people, makes and models of the demo shop.

None of them is meant for anybody. Telephone numbers are from the ranges that Ofcom
keeps for drama (01632 960000–960999, 07700 900000–900999), mail from example domains.
"""

GIVEN = """
    Alda Bertil Clemence Dorrit Edwin Fenna Gilbert Hedda Ivo Jorunn Kester Liesbet
    Magnus Nerys Osric Petra Quentin Rhoda Silas Tamsin Ulla Vernon Wilma Yorick Zelda
    Ambrose Briony Casper Della Esmond
""".split()

FAMILY = """
    Ashgarrow Brindlecombe Corriwell Dunmallow Everthorn Fallowmoor Garrowmere
    Hathersome Inglequick Jessamoor Kestermarsh Lowthorpe-Vane Marrowbeck Netherfold
    Oakhatch Pellinwood Quillstead Rushmallow Stannerwick Thornapple Underbramble
    Vennimarsh Wracklebury Yarrowgate Zellaby-Holt Arkenfold Bristlemere Copperwold
""".split()

COMPANIES = (
    "Larchwood Choir",
    "Three Herons School",
    "Millrace Recording",
    "Copperwold Surveyors",
    "Bramble Street Radio",
    "Saltmarsh Clinic",
)

STREETS = """
    Bobbin Lane;Lantern Row;Tinker's Hill;Old Wharf;Plumtree Walk;Weighhouse Yard
""".strip().split(";")
TOWNS = ("Marlbeck", "Nether Wick", "Osterham", "Saltby Quay")

MODELS: dict[str, tuple[tuple[str, str], ...]] = {
    "laptop": (
        ("Norwind", "Slate 14"),
        ("Norwind", "Slate 15"),
        ("Quellmoor", "Folio 3"),
        ("Quellmoor", "Folio 5"),
        ("Brambelow", "Tern"),
    ),
    "tablet": (("Norwind", "Leaf 10"), ("Larkspane", "Pane 8")),
    "handheld": (("Ostrivane", "Pocket 2"), ("Ostrivane", "Pocket 3")),
    "phone": (("Larkspane", "Wren"), ("Larkspane", "Wren Mini")),
    "amplifier": (("Fennimarl", "Hall 2"), ("Fennimarl", "Hall 4")),
    "keyboard": (("Fennimarl", "Reed 49"),),
    "instrument": (("Tolverdene", "Bench 41"), ("Tolverdene", "Scope 2")),
}
"""Makers and models of each kind of device."""

BOARDS = {"Slate 14": ("21", "23", "24"), "Pocket 3": ("A", "B")}
"""The revisions on the boards of a model, where the shop writes them down."""

CAME_WITH = {
    "laptop": ("charger", "charger and sleeve", "nothing"),
    "tablet": ("cover", "nothing", "charger"),
    "handheld": ("case and charger", "nothing"),
    "phone": ("nothing", "case"),
    "amplifier": ("mains lead", "mains lead and remote", "nothing"),
    "keyboard": ("power supply", "power supply and bag"),
    "instrument": ("mains lead and two probes", "mains lead"),
}
CONDITION = ("good", "scratched", "one corner dented", "dusty", "screw missing")

SUPPLIERS = ("Oddments & Reels", "Harbour Parts", "Kettle Lane Components")
