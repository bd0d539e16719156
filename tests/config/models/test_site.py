"""The models of the site: what they fill in, what they work out, and that they never change."""

from datetime import date
from decimal import Decimal

import pytest
from pydantic import ValidationError

from config.errors import UnknownZoneError
from config.file.loader import parse_site
from config.models.site import SITE_KEYS, RatedLoad, Site, Zone
from config.phrase import Phrase
from config.program.parser import parse_span
from config.program.special_nights import parse_nights
from config.validation.fields import all_fields
from tests.config.site_texts import GOOD, spoil
from tests.sites import site


def zone(**more):
    """A zone made without a file."""
    return Zone.model_validate({"id": "path", "pin": 17, "program": ["dusk to midnight"], **more})


FIXTURES = [{"kind": "path", "count": 6, "watts": 4.5}, {"kind": "step", "count": 2, "watts": 3}]


def test_a_file_becomes_a_site_value_by_value():
    """Each key of the file is found again under its name with its unit."""
    site = parse_site(GOOD, "site.toml").site
    assert (site.name, site.latitude_deg, site.longitude_deg, site.time_zone, site.dusk_angle_deg) == (
        "Tern Cottage",
        51.5,
        -0.1,
        "Europe/London",
        6.0,
    )
    assert site.tariff is not None
    assert (site.tariff.currency, site.tariff.per_kwh) == ("GBP", Decimal("0.29"))
    path = site.zone("path")
    assert path.program == (parse_span("dusk to midnight"),)
    assert path.special_nights[0].nights == parse_nights("Fri, Sat")
    assert path.special_nights[0].program == (parse_span("dusk to 01:30"),)
    assert (path.pin, path.active_high, path.out_of_service) == (17, False, None)


def test_what_is_left_out_has_its_default():
    """A short file gives the defaults that the table of keys promises."""
    text = GOOD[: GOOD.index("[tariff]")] + GOOD[GOOD.index("[[zones]]") :]
    site = parse_site(text.replace('transformer = "shed"\n', ""), "site.toml").site
    assert site.tariff is None
    assert (site.relays.board, site.relays.rest_s, site.relays.stagger_s) == ("simulated", 2.0, 0.5)
    assert site.relays.endurance_cycles == 100_000
    assert site.clock.believe == "synchronised"
    assert site.transformers == ()
    fixture = site.zones[0].fixtures[0]
    assert (fixture.name, fixture.rated_volts, fixture.lamp, fixture.rated_life_h, fixture.fitted) == (
        "",
        12.0,
        "led",
        None,
        None,
    )


def test_a_site_can_be_made_by_its_own_names():
    """Code that has no file uses the names with units, and gets the same site."""
    made = Site(
        name="Tern Cottage",
        latitude_deg=51.5,
        longitude_deg=-1,
        time_zone="Europe/London",
        dusk_angle_deg=12.0,
        zones=(zone(),),
    )
    assert (made.longitude_deg, made.dusk_angle_deg, made.zones[0].id) == (-1.0, 12.0, "path")


@pytest.mark.parametrize(
    ("more", "load"),
    [
        ({}, RatedLoad(watts=None, origin="")),
        ({"rated_watts": 40}, RatedLoad(watts=40.0, origin="rated")),
        ({"fixtures": FIXTURES}, RatedLoad(watts=33.0, origin="fixtures")),
        ({"fixtures": FIXTURES, "rated_watts": 40}, RatedLoad(watts=33.0, origin="fixtures")),
        (
            {"fixtures": FIXTURES, "rated_watts": 40, "measured_watts": 36.5},
            RatedLoad(watts=36.5, origin="measured"),
        ),
    ],
)
def test_a_zone_knows_its_load_and_where_it_comes_from(more, load):
    """Measured counts before fixtures, fixtures before rated, and nothing is not nought."""
    assert zone(**more).rated_load == load


def test_a_name_that_is_left_out_is_the_id():
    """A zone and a transformer without a name are called by their ids."""
    site = parse_site(GOOD, "site.toml").site
    assert (site.zones[0].name, site.transformers[0].name) == ("path", "shed")
    assert zone(name="Garden path").name == "Garden path"


@pytest.mark.parametrize(
    ("written", "reason"), [(True, "no reason given"), (False, None), ("post felled", "post felled")]
)
def test_out_of_service_is_a_reason_or_true(written, reason):
    """True stands for a reason that nobody wrote down, false for none."""
    assert zone(out_of_service=written).out_of_service == reason


def test_a_zone_that_is_not_there_is_named_with_those_that_are():
    """Asking for an unknown zone names the known ids, and is a KeyError too."""
    site = parse_site(GOOD, "site.toml").site
    with pytest.raises(KeyError) as caught:
        site.zone("jetty")
    assert isinstance(caught.value, UnknownZoneError)
    assert str(caught.value) == "no zone is called “jetty”; this site has path"


def test_a_zone_is_fed_by_the_transformer_it_names_or_by_the_only_one():
    """Without a name the only transformer is meant; without a transformer there is none."""
    named = parse_site(GOOD, "site.toml").site
    assert named.transformer_of(named.zones[0]) is named.transformers[0]
    unnamed = parse_site(spoil('transformer = "shed"\n', ""), "site.toml").site
    assert unnamed.transformer_of(unnamed.zones[0]) is unnamed.transformers[0]
    bare = Site(name="x", latitude_deg=0.0, longitude_deg=0.0, time_zone="Etc/UTC", zones=(zone(),))
    assert bare.transformer_of(bare.zones[0]) is None


@pytest.mark.parametrize(
    "telephone", ["+1 802 555 0142", "+44 1632 960123", "(01632) 960 123", "802-555-0142", "01632 960123"]
)
def test_a_telephone_number_is_kept_as_it_was_written(telephone):
    """National and international notation of ITU-T E.123 are taken, and nothing is changed about them."""
    here = site(installer={"name": "The installer", "telephone": telephone})
    assert here.installer.telephone == telephone
    assert (here.installer.email, here.customer) == (None, None)


def test_a_site_never_changes_and_can_be_a_key():
    """No field can be set, and a site can stand in a cache."""
    site = parse_site(GOOD, "site.toml").site
    with pytest.raises(ValidationError, match="frozen"):
        site.name = "Other"
    assert hash(site) == hash(parse_site(GOOD, "site.toml").site)
    assert site == parse_site(GOOD, "site.toml").site


def test_a_price_is_exactly_what_was_written():
    """0.290 has three digits, and 1 is a price too."""
    for written in ("0.290", "1", "0", "0.123456789012345678901234567890", "1e-3"):
        site = parse_site(spoil("per_kwh = 0.29", f"per_kwh = {written}"), "site.toml").site
        assert site.tariff is not None
        assert site.tariff.per_kwh.as_tuple() == Decimal(written).as_tuple()


def test_whole_numbers_do_where_decimals_are_meant_and_dates_are_dates():
    """Latitude 51 is 51.0, and a date of fitting is a date."""
    text = spoil("latitude = 51.5", "latitude = 51")
    text = text.replace("watts = 4.5", "watts = 4\n  fitted = 2027-04-15")
    site = parse_site(text, "site.toml").site
    assert isinstance(site.latitude_deg, float)
    assert site.zones[0].fixtures[0].watts == 4.0
    assert site.zones[0].fixtures[0].fitted == date(2027, 4, 15)


def test_every_key_says_what_would_do():
    """A refusal of any key can quote what fits there, since every field describes it."""

    def visit(table, seen):
        for name, field in table.model_fields.items():
            if name != "name":
                assert field.description, (table, name)
            for inner in [field.annotation, *getattr(field.annotation, "__args__", ())]:
                if isinstance(inner, type) and hasattr(inner, "model_fields") and inner not in seen:
                    seen.add(inner)
                    visit(inner, seen)
        return seen

    seen = {table.__name__ for table in visit(Site, set())}
    assert {"Zone", "Fixture", "SpecialNight", "Transformer", "Tariff"} <= seen


def test_the_keys_of_the_site_table_are_fields_of_the_site():
    """Every key listed for [site] is a field, under the name that the file uses."""
    assert set(SITE_KEYS) <= {field.alias or name for name, field in Site.model_fields.items()}


def test_a_program_has_a_bounded_number_of_spans_and_special_nights():
    """A night is planned from all of them while lights are switched, so there are not thousands."""
    nights = [{"nights": "Fri", "program": ["dusk for 1h"] * 96}] * 100
    assert zone(program=["dusk for 1h"] * 96, special_nights=nights).most_windows == 96
    assert zone(program=["dusk for 1h"], special_nights=nights).most_windows == 96
    assert zone(program=[]).most_windows == 0
    for too_many in (
        {"program": ["dusk for 1h"] * 97},
        {"special_nights": [{"nights": "Fri", "program": ["dusk for 1h"] * 97}]},
        {"special_nights": [*nights, nights[0]]},
    ):
        with pytest.raises(ValidationError, match="too_long"):
            zone(**too_many)


def test_what_to_write_for_a_key_can_be_said_in_another_language():
    """The description of every key is a phrase."""
    described = [(path, field.description) for path, field in all_fields() if field.description]
    assert len(described) > 100
    assert [path for path, text in described if not isinstance(text, Phrase)] == []
