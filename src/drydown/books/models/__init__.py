"""Tables of the books. Masses in whole grams, money in the smallest coin, times aware.

`journal` holds the truth; the tables of `crop` are read off it and can be made anew from it;
`people` holds registers: growers, people, devices.
"""

from drydown.books.models.air import AirHour, Channel, Gap, Measure
from drydown.books.models.crop import Delivery, Descent, Happening, Lot, Reading
from drydown.books.models.journal import Account, Entry, Head, Holding, Posting, Seal
from drydown.books.models.people import Change, Device, Grower, Outgoing, OwnerLink, Person
from drydown.books.models.sheets import BenchSheet

__all__ = [
    "Account",
    "AirHour",
    "BenchSheet",
    "Change",
    "Channel",
    "Delivery",
    "Descent",
    "Device",
    "Entry",
    "Gap",
    "Grower",
    "Happening",
    "Head",
    "Holding",
    "Lot",
    "Measure",
    "Outgoing",
    "OwnerLink",
    "Person",
    "Posting",
    "Reading",
    "Seal",
]
