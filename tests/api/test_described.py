"""The API's own description: complete, without gaps or clashes, and readable without a network."""

import re

from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator

from fleet.readings.senml.names import FLAG, NAMES, TEXT


def schema():
    return SchemaGenerator().get_schema(public=True)


def test_the_description_is_made_without_a_warning(capsys):
    GENERATOR_STATS.reset()
    found = schema()
    assert not GENERATOR_STATS, capsys.readouterr().err
    assert len(found["paths"]) >= 110


def test_each_operation_says_what_it_does_and_what_it_answers():
    for path, operations in schema()["paths"].items():
        for verb, operation in operations.items():
            assert operation.get("tags") and operation["tags"] != ["api"], (verb, path)
            if not path.startswith("/api/v1/field/"):
                assert operation.get("description"), (verb, path)
                assert operation["summary"] and "\n" not in operation["summary"], (verb, path)
            assert any(code.startswith("2") for code in operation["responses"]), (verb, path)
            for code in ("400", "401", "403", "404", "409", "429"):
                assert operation["responses"][code]["description"], (verb, path)


def test_the_guide_lists_every_senml_name_with_its_units():
    told = schema()["paths"]["/api/v1/readings/"]["post"]["description"]
    for name, quantity in NAMES.items():
        (line,) = re.findall(rf"^\| `{re.escape(name)}` \|.*$", told, re.MULTILINE)
        assert quantity.column in line
        assert quantity.units in (TEXT, FLAG) or all(f"`{unit}`" in line for unit in quantity.units)


def test_the_guide_needs_no_network_and_the_door_leads_to_it(client_of, nadia):
    guide = client_of(nadia).get("/api/v1/guide/").content.decode()
    assert not re.findall(r'(?:src|href)="(?:https?:)?//', guide)
    door = client_of(nadia).get("/api/").content.decode()
    assert "/api/v1/guide/" in door and "application/senml+json" in door
