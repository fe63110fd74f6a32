"""Invented districts, villages and people on real land: a dry plateau south of the equator."""

import numpy as np

ORGANISATION = "Orvena Water Trust"
# name, P-code, centre (latitude, longitude), altitude, months of high water later or earlier
DISTRICTS = [
    ("Orvena North", "OV01", -15.32, 26.05, 1110),
    ("Tasimbe", "OV02", -16.18, 26.92, 1060),
    ("Kuluwei", "OV03", -15.68, 27.74, 1005),
    ("Mbarrin Hills", "OV04", -16.86, 27.31, 1190),
]
SITES_PER_DISTRICT = [18, 16, 14, 14]
INSTALLERS = ["Hollow Hill Fitters", "Two Rivers Pump Works", "Trust's own crew"]
BATCHES = ["B-2104", "B-2207", "B-2311"]
_FIRST = ["Ka", "Mu", "Lo", "Ta", "Si", "Ve", "Ndo", "Wi", "Bo", "Re", "Che", "Lu"]
_MIDDLE = ["lan", "ru", "mbi", "sa", "vo", "ke", "ndi", "tor", "wa", "nu", "pe"]
_LAST = ["ga", "ri", "to", "we", "me", "la", "ko", "sha", "ni", "do"]
_GIVEN = ["Temba", "Ruta", "Malik", "Seria", "Joram", "Pelina", "Kofar", "Anisha", "Dubeko", "Lorato", "Wendo",
          "Misali", "Tarik", "Neva", "Obedi", "Salama"]  # fmt: skip
_FAMILY = ["Avundi", "Brelanga", "Chorwe", "Dimbasa", "Elombe", "Fundira", "Gelwa", "Hakoma", "Isambe", "Jurinda",
           "Kelwani", "Lumbeta", "Morsha", "Nyavolo"]  # fmt: skip
_PLACES = ["school", "clinic", "market", "chapel", "dip tank", "upper village", "lower village", "crossroads"]


def villages(how_many):
    """Names that are all different, the same each time."""
    rng = np.random.default_rng(5)
    names = []
    while len(names) < how_many:
        name = "".join(rng.choice(part) for part in (_FIRST, _MIDDLE, _LAST))
        if name not in names:
            names.append(name)
    return names


def caretaker(rng):
    return f"{rng.choice(_GIVEN)} {rng.choice(_FAMILY)}"


def spot(rng):
    return str(rng.choice(_PLACES))


# Who can log in to the demo. user name, given name, family name, role
PEOPLE = [
    ("nadia", "Nadia", "Elombe", "coordinator"),
    ("idris", "Idris", "Avundi", "technician"),
    ("selma", "Selma", "Chorwe", "technician"),
    ("wanja", "Wanja", "Kelwani", "manager"),
    ("amara", "Amara", "Lumbeta", "administrator"),
]
