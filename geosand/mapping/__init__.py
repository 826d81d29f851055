"""One self-contained HTML map that works offline.

Fill a :class:`~geosand.mapping.view.MapView` from results and give it to
:func:`geosand.mapping.page.map_page`; the text it returns is the whole page.
"""
