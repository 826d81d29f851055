"""CSV files: encodings, separators, shape. All cases are made for this project."""

from __future__ import annotations

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.spoiled import CATCH_HEAD, cells_of, csv_text, workbook
from tests.sites import CATCHES, DRESSINGS, LOADS, TOML

ENCODINGS = (
    Case(
        "catches with a byte order mark",
        {"catches": b"\xef\xbb\xbf" + csv_text(CATCHES).encode()},
        ACCEPTED,
    ),
    Case("catches in UTF-16", {"catches": csv_text(CATCHES).encode("utf-16")}, ACCEPTED),
    Case(
        "dressings in Latin-1",
        {
            "dressings": "dressing,date,surfaces,note\nD1,2026-04-10,green,gr\xfcn\n".encode(
                "latin-1"
            )
        },
        FOUND,
        "is not UTF-8; it is read as Windows-1252",
    ),
    Case(
        "site.toml in Latin-1",
        {"toml": TOML.replace("Test site", "Gr\xfcn").encode("latin-1")},
        REFUSED,
        "site.toml, row 1: is not UTF-8",
    ),
    Case("site.toml in UTF-16", {"toml": TOML.encode("utf-16")}, REFUSED, "is not UTF-8"),
    Case("catches with semicolons", {"catches": csv_text(CATCHES, ";")}, ACCEPTED),
    Case("catches with tabs", {"catches": csv_text(CATCHES, "\t")}, ACCEPTED),
    Case(
        "loads with a spreadsheet's separator line",
        {"loads": "sep=;\n" + LOADS.replace(",", ";")},
        ACCEPTED,
    ),
    Case("Windows line ends", {"loads": LOADS.replace("\n", "\r\n")}, ACCEPTED),
    Case("old Macintosh line ends", {"loads": LOADS.replace("\n", "\r")}, ACCEPTED),
    Case("no line end at the end", {"loads": LOADS.rstrip("\n")}, ACCEPTED),
    Case(
        "a picture named loads.csv",
        {"loads": b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"},
        REFUSED,
        "loads.csv: is not a text file",
    ),
    Case(
        "a workbook named loads.csv",
        {"loads": workbook(loads=cells_of(LOADS))},
        REFUSED,
        "loads.csv: is not a text file",
    ),
    Case(
        "a zero byte in a note",
        {"dressings": DRESSINGS.replace("green", "gre\0en")},
        REFUSED,
        "is not a text file",
    ),
)

AS_PROGRAMS_WRITE_THEM = (
    *(
        Case(f"a separator line {line!r}", {"loads": line + LOADS.replace(",", ";")}, ACCEPTED)
        for line in ('"sep=;"\n', "SEP=;\n", "sep=;;;;;\r\n", "\ufeffsep=;\n")
    ),
    Case(
        "a separator line of an old Macintosh",
        {"loads": ("sep=;\n" + LOADS.replace(",", ";")).replace("\n", "\r")},
        ACCEPTED,
    ),
    Case("two byte order marks", {"loads": "\ufeff\ufeff" + LOADS}, ACCEPTED),
    Case(
        "two files joined, each with its mark and head",
        {"loads": "\ufeff" + LOADS + "\ufeff" + LOADS.replace("L1", "L2")},
        REFUSED,
        "row 3, dressing: 'dressing' is not in the dressings",
    ),
    Case("UTF-16 without its mark", {"loads": LOADS.encode("utf-16-le")}, REFUSED, "is not a text"),
    Case("UTF-32", {"loads": LOADS.encode("utf-32")}, REFUSED, "is not a text file"),
    Case("UTF-16 of the other order", {"loads": b"\xfe\xff" + LOADS.encode("utf-16-be")}, ACCEPTED),
    Case(
        "bars between the columns",
        {"loads": LOADS.replace(",", "|")},
        REFUSED,
        "names one column only. Delete it if it is a title; else write , or ; or a tab between the",
    ),
    Case(
        "every cell in quotes",
        {"loads": "".join('"' + line.replace(",", '","') + '"\n' for line in LOADS.splitlines())},
        ACCEPTED,
    ),
    Case(
        "three kinds of line ends",
        {"loads": LOADS.rstrip() + "\r\n" + "L2,D1,0.4,25,0.25,1\rL3,D1,0.4,25,0.25,1"},
        ACCEPTED,
    ),
    Case("separators behind each line", {"loads": LOADS.replace("\n", ",,\n")}, ACCEPTED),
    Case(
        "a separator before each line",
        {"loads": "".join(f",{line}\n" for line in LOADS.splitlines())},
        ACCEPTED,
    ),
    Case(
        "row numbers of a script before each line",
        {"loads": "".join(f"{k or ''},{line}\n" for k, line in enumerate(LOADS.splitlines()))},
        REFUSED,
        "column 1 has no name",
    ),
    Case("a sign that ends old files", {"loads": LOADS + "\x1a"}, REFUSED, "control characters"),
    Case("a comment above", {"loads": "# of 2026\n" + LOADS}, REFUSED, "names no columns"),
    Case(
        "masses in two columns, each for some rows",
        {
            "catches": [
                c | {"gross_g": c["gross_g"] if k < 3 else "", "gross_oz": "" if k < 3 else 5}
                for k, c in enumerate(CATCHES)
            ]
        },
        REFUSED,
        "gross_g and gross_oz say the same thing",
    ),
    Case(
        "masses in two columns, one empty",
        {"catches": [c | {"gross_oz": ""} for c in CATCHES]},
        ACCEPTED,
    ),
    Case(
        "a second column in other case",
        {"loads": LOADS.replace("count,", "count,Count,").replace("52,", "52,60,")},
        FOUND,
        "column 'Count' is not read (did you mean count?)",
    ),
    Case(
        "a note with a line break",
        {
            "dressings": DRESSINGS.replace("_m\n", "_m,note\n").replace(
                ",4\n", ',4,"wet\nand cold"\n'
            )
        },
        ACCEPTED,
    ),
)


CSV_SHAPE = (
    Case("empty catches", {"catches": ""}, REFUSED, "catches.csv: is empty"),
    Case("blank lines only", {"loads": "\n\n  \n"}, REFUSED, "loads.csv: is empty"),
    Case(
        "a header and no row",
        {"catches": CATCH_HEAD},
        FOUND,
        "D1: no catches lie on its surfaces",
    ),
    Case(
        "a title above the columns",
        {"loads": "Loads of 2026,,,,,\n" + LOADS},
        REFUSED,
        "loads.csv: the first line is 'Loads of 2026' and names no columns. Delete what stands",
    ),
    Case(
        "a title of one cell above the columns",
        {"loads": "Loads of 2026\n" + LOADS},
        REFUSED,
        "loads.csv: the first line is 'Loads of 2026' and names no columns",
    ),
    Case("blank rows between", {"loads": LOADS.replace("L1", "\n,,,,,\nL1")}, ACCEPTED),
    Case(
        "a column twice",
        {"loads": "load,dressing,count,count,unit_mass_kg\nL1,D1,52,53,25\n"},
        REFUSED,
        "column 'count' stands twice",
    ),
    Case(
        "a column without a name",
        {"loads": "load,dressing,count,unit_mass_kg,\nL1,D1,52,25,x\n"},
        REFUSED,
        "column 5 has no name",
    ),
    Case(
        "the header row twice",
        {"loads": LOADS + LOADS.splitlines()[0] + "\n"},
        REFUSED,
        "loads.csv, row 3",
    ),
    Case(
        "a row too long",
        {"loads": LOADS + "L2,D1,1,25,0.25,1,9\n"},
        REFUSED,
        "7 cells for 6 columns",
    ),
    Case(
        "a row too short",
        {"loads": LOADS + "L2,D1\n"},
        REFUSED,
        "loads.csv, row 3, count: no number is written here",
    ),
    Case("an open quote", {"loads": LOADS + '"L2,D1,1,25,0.25,1\n'}, REFUSED, "is not CSV"),
    Case(
        "an unknown column",
        {"loads": "load,dressing,count,unit_mass_kg,colour\nL1,D1,52,25,red\n"},
        FOUND,
        "column 'colour' is not read",
    ),
    Case(
        "a misspelt column",
        {"loads": "load,dressing,cuont,unit_mass_kg\nL1,D1,52,25\n"},
        REFUSED,
        "Did you mean 'cuont'?",
    ),
    Case(
        "a duplicate load",
        {"loads": LOADS + LOADS.splitlines()[1] + "\n"},
        REFUSED,
        "loads.csv, row 3, load",
    ),
    Case(
        "a duplicate dressing",
        {"dressings": DRESSINGS + DRESSINGS.splitlines()[1] + "\n"},
        REFUSED,
        "dressings.csv, row 3",
    ),
    Case("no loads file", {"loads": None}, FOUND, "D1: no loads are recorded"),
    Case("no catches file", {"catches": None}, FOUND, "D1: no catches lie on its surfaces"),
    Case("no dressings file", {"dressings": None}, REFUSED, "dressings"),
    Case(
        "a web page named loads.csv",
        {"loads": "<!DOCTYPE html><html><body>Sign in</body></html>\n"},
        REFUSED,
        "loads.csv: is a web page",
    ),
    Case(
        "200,001 rows",
        {"loads": LOADS.splitlines()[0] + "\n" + "L1,D1,1,25,1,1\n" * 200_001},
        REFUSED,
        "loads.csv: more than 200,000 rows",
    ),
    Case(
        "a million blank lines",
        {"loads": LOADS + "\n" * 1_000_001},
        REFUSED,
        "loads.csv: more than 1,000,000 lines",
    ),
    Case(
        "a cell of 200 kB",
        {"loads": LOADS + "x" * 200_000},
        REFUSED,
        "a cell of more than 131,072 characters begins there",
    ),
    Case(
        "301 columns",
        {"loads": ",".join(f"c{n}" for n in range(301)) + "\n" + "1," * 300 + "1\n"},
        REFUSED,
        "has 301 columns; allowed: at most 300",
    ),
)


CUT_OFF = (
    *(
        Case(
            f"{name} cut off in its first line",
            {name: text},
            FOUND,
            f"{name}.csv: holds no more than one line, which does not end: was the file cut off?",
        )
        for name, text in (
            ("loads", LOADS[:30]),
            ("catches", CATCH_HEAD[:30]),
            ("deliveries", "date,ki"),
        )
    ),
    Case(
        "loads cut off in their last row",
        {"loads": f"{LOADS}L2,D1,1,25"},
        FOUND,
        "loads.csv: row 3, the last, has 4 of 6 cells and no end of its line",
    ),
    Case(
        "surfaces of a load with the separator between",
        {"loads": "load,dressing,count,unit_mass_kg,surfaces,note\nL1,D1,52,25,g1,g2,\n"},
        FOUND,
        "loads.csv: row 2 has more cells than columns, the last blank: look for a separator in a",
    ),
)


CASES = (*CUT_OFF, *ENCODINGS, *AS_PROGRAMS_WRITE_THEM, *CSV_SHAPE)
