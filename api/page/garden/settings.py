"""The fields of the tables that a site file has once: place, people, relays, clock, network and wiring."""

from api.page.garden.fields import CONTACT_LOAD, Choice, Field
from api.render.words import N_

CUSTOMER = (
    Field(key="name", label=N_("Name"), required=True),
    Field(key="address", label=N_("Address")),
)
INSTALLER = (
    Field(key="name", label=N_("Name"), required=True),
    Field(key="telephone", label=N_("Telephone")),
    Field(key="email", label=N_("E-mail")),
)
NAME = (Field(key="name", label=N_("What the garden is called"), required=True),)
PLACE = (
    Field(
        key="place",
        label=N_("Where it is"),
        kind="place",
        hint=N_("Coordinates, a link from a map, or a larger city nearby"),
        required=True,
    ),
    Field(
        key="time_zone",
        label=N_("Its time zone"),
        kind="time zone",
        hint=N_("An area and a city, such as Europe/Oslo; empty: that of the place"),
    ),
    Field(
        key="dusk_angle",
        label=N_("How low the sun is at dusk and dawn, in degrees"),
        kind="number",
        hint=N_("6 is civil twilight; with more it is lit later in the evening"),
        default="6",
        more=True,
    ),
)
RELAYS = (
    Field(
        key="board",
        label=N_("They are"),
        kind="choice",
        choices=(
            Choice("simulated", N_("simulated: nothing is switched")),
            Choice("gpio", N_("on the pins of this board")),
        ),
        default="simulated",
    ),
    Field(
        key="driver",
        label=N_("What drives the pins"),
        kind="choice",
        choices=(
            Choice("", N_("chosen by itself")),
            Choice("gpiozero", "gpiozero, lgpio", is_name=True),
            Choice("gpiod", "gpiod", is_name=True),
        ),
        more=True,
    ),
    Field(
        key="chip",
        label=N_("GPIO chip of the pins"),
        hint=N_("For gpiod, such as /dev/gpiochip0; empty: the chip of the 40-pin header"),
        more=True,
    ),
    Field(
        key="rest_s",
        label=N_("Seconds that a relay rests between two switchings"),
        kind="number",
        hint=N_("So that nobody wears it out by playing with it"),
        default="2",
    ),
    Field(
        key="stagger_s",
        label=N_("Seconds between zones that come on together"),
        kind="number",
        hint=N_("Spares the supply"),
        default="0.5",
    ),
    Field(key="contact_a", label=N_("Amperes that a contact is rated for"), kind="number", more=True),
    Field(
        key="contact_inrush_a",
        label=N_("Amperes that it can take for a moment"),
        kind="number",
        hint=N_("From its data sheet"),
        more=True,
    ),
    CONTACT_LOAD,
    Field(
        key="endurance_cycles",
        label=N_("Switchings that a relay is made for"),
        kind="whole",
        hint=N_("From its data sheet"),
        default="100000",
        more=True,
    ),
)
CLOCK = (
    Field(
        key="believe",
        label=N_("When the board's clock is believed"),
        kind="choice",
        choices=(
            Choice("synchronised", N_("once it is set or confirmed")),
            Choice("always", N_("always, even while it is wrong")),
        ),
        hint=N_(
            "Set by the network or a hardware clock, or confirmed by a person. Believed always, a wrong "
            "clock lights at wrong hours."
        ),
        default="synchronised",
    ),
)
WIRING = (
    Field(
        key="drop_percent",
        label=N_("Greatest voltage drop that you accept, in percent"),
        kind="number",
        hint=N_("More is then an error; empty: no limit but what the lamps allow"),
    ),
    Field(
        key="copper_c",
        label=N_("Temperature of the copper in °C"),
        kind="number",
        hint=N_("75 is that of the tables; buried cable is cooler, and drops less"),
        default="75",
    ),
    Field(
        key="spare_percent",
        label=N_("How much more cable to buy than is laid, in percent"),
        kind="number",
        default="10",
    ),
    Field(key="connector_a", label=N_("Amperes that the connectors are rated for"), kind="number"),
    Field(
        key="copper_per_kg",
        label=N_("Price of cable for each kilogram of its copper"),
        kind="number",
        hint=N_("In any currency: it decides what is advised first"),
        default="40",
        more=True,
    ),
    Field(
        key="trench_per_m",
        label=N_("Price of a metre of trench"),
        kind="number",
        hint=N_("In the same currency"),
        default="6",
        more=True,
    ),
)
NETWORK = (
    Field(
        key="discovery",
        label=N_("In the home network it is found as leerie.local"),
        kind="choice",
        choices=(Choice("true", N_("yes")), Choice("false", N_("no"))),
        default="true",
    ),
    Field(
        key="names",
        label=N_("Other names of this board"),
        kind="texts",
        hint=N_("As garden.example.net; with commas where there are several. Other names are refused."),
    ),
)
