"""The kinds of card that there are."""

from server.cards import Kind
from server.core.calendarcard import CalendarCard
from server.core.personcard import PersonCard
from server.core.productcard import ProductCard
from server.core.rulecard import RuleCard
from server.core.sitecard import SiteCard
from server.core.sprayercard import SprayerCard
from server.core.treatmentcard import TreatmentCard
from server.core.workcard import WorkCard

SITE = Kind("site", SiteCard)
SPRAYER = Kind("sprayer", SprayerCard)
PRODUCT = Kind("product", ProductCard)
TREATMENT = Kind("treatment", TreatmentCard)
PERSON = Kind("person", PersonCard)
WORK = Kind("work", WorkCard)
RULE = Kind("rule", RuleCard)
CALENDAR = Kind("calendar", CalendarCard)
