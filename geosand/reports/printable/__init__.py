"""The printable report: its content as data, its pictures as marks, and two writers of them.

:mod:`.season_report` makes the content, :mod:`.html_writer` and :mod:`.pdf_writer` write it.
"""
