"""Our kinds of folium's elements, each made at first use: folium is slow to import."""

from __future__ import annotations

from functools import cache
from typing import Any

MAP = """{% macro html(this, kwargs) %}<div class="map" id="{{ this.get_name() }}" role="region" \
aria-label="Map; the table holds the same figures"></div>{% endmacro %}\
{% macro script(this, kwargs) %}var {{ this.get_name() }} = L.map("{{ this.get_name() }}", \
{center: {{ this.location|tojson }}, ...{{ this.options|tojavascript }}});{% endmacro %}"""


@cache
def raw_class() -> Any:
    """Text that is written as it is: branca's own Element compiles it as a template."""
    from branca.element import Element

    class Raw(Element):
        def __init__(self, text: str) -> None:
            super().__init__()
            self._name = "Raw"
            self.text = text

        def render(self, **_: Any) -> str:
            return self.text

    return Raw


@cache
def page_class() -> Any:
    """A figure with a language, our own head, and its script inside the body."""
    from branca.element import Figure

    class Page(Figure):
        def __init__(self, head: list[str]) -> None:
            super().__init__()
            self.header._children.clear()
            for index, line in enumerate(head):
                self.header.add_child(raw_class()(line), f"head{index}")

        def render(self, **kwargs: Any) -> str:
            for child in self._children.values():
                child.render(**kwargs)
            head, body, script = (
                part.render(**kwargs) for part in (self.header, self.html, self.script)
            )
            return (
                f'<!DOCTYPE html>\n<html lang="en" class="still">\n<head>\n{head}\n</head>\n'
                f"<body>\n{body}\n<script>\n{script}\n</script>\n</body>\n</html>"
            )

    return Page


@cache
def map_class() -> Any:
    """A map without links to other hosts and without a locked viewport."""
    import folium
    from folium.template import Template

    class SandMap(folium.Map):
        default_js: list[tuple[str, str]] = []  # noqa: RUF012
        default_css: list[tuple[str, str]] = []  # noqa: RUF012
        _template = Template(MAP)

    return SandMap


@cache
def start_class() -> Any:
    """Hands folium's variables to our script, and writes what follows the map."""
    from branca.element import Element

    class Start(Element):
        def __init__(self, *, themes: Any, groups: Any, control: Any, after: str) -> None:
            super().__init__()
            self._name = "Start"
            self.themes, self.groups, self.control = themes, groups, control
            self.after = after

        def render(self, **_: Any) -> str:
            page: Any = self.get_root()
            the_map: Any = self._parent
            names = (the_map.get_name(), self.control.get_name())
            layers = (_variables(self.themes), _variables(self.groups))
            call = f"geosand.start({', '.join([*names, *layers])});"
            page.script.add_child(raw_class()(call), "start")
            page.html.add_child(raw_class()(self.after), "after")
            return ""

    return Start


def _variables(layers: Any) -> str:
    """A script's object of the layers' variables."""
    return "{" + "".join(f"{key}: {layer.get_name()}, " for key, layer in layers.items()) + "}"
