"""Our kinds of folium's elements, each made at first use: folium is slow to import."""

from __future__ import annotations

from functools import cache
from typing import Any

PAGE = """<!DOCTYPE html>
<html lang="en" class="still">
<head>
{{ this.header.render(**kwargs) }}
</head>
<body>
{{ this.html.render(**kwargs) }}
<script>
{{ this.script.render(**kwargs) }}
</script>
</body>
</html>
"""
MAP = """{% macro html(this, kwargs) %}<div class="map" id="{{ this.get_name() }}" role="region" \
aria-label="Map; the table holds the same figures"></div>{% endmacro %}\
{% macro script(this, kwargs) %}var {{ this.get_name() }} = L.map("{{ this.get_name() }}", \
{center: {{ this.location|tojson }}, ...{{ this.options|tojavascript }}});{% endmacro %}"""
START = """{% macro script(this, kwargs) %}\
geosand.start({{ this._parent.get_name() }}, {{ this.control.get_name() }}, \
{ {%- for key, group in this.themes.items() %}{{ key }}: {{ group.get_name() }}, {% endfor -%} }, \
{ {%- for key, group in this.groups.items() %}{{ key }}: {{ group.get_name() }}, {% endfor -%} });\
{% endmacro %}"""


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
    from folium.template import Template

    class Page(Figure):
        _template = Template(PAGE)

        def __init__(self, head: list[str]) -> None:
            super().__init__()
            self.header._children.clear()
            for index, line in enumerate(head):
                self.header.add_child(raw_class()(line), f"head{index}")

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
    from branca.element import MacroElement
    from folium.template import Template

    class Start(MacroElement):
        _template = Template(START)

        def __init__(self, *, themes: Any, groups: Any, control: Any, after: str) -> None:
            super().__init__()  # type: ignore[no-untyped-call]
            self._name = "Start"
            self.themes, self.groups, self.control = themes, groups, control
            self.after = after

        def render(self, **kwargs: Any) -> str:
            super().render(**kwargs)  # type: ignore[no-untyped-call]
            page: Any = self.get_root()
            page.html.add_child(raw_class()(self.after), "after")
            return ""

    return Start
