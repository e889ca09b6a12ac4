"""What Python's csv module and float() read from tables of the corpus, as hexadecimal floats, blank for no number.
Run in testdata/oracle: python3 csv_oracle.py > csv_oracle.txt"""
import csv

FILES = [  # file, delimiter, decimal sign, line of the header (from 0)
    ("comma.csv", ",", ".", 0), ("crlf.csv", ",", ".", 0), ("semicolon-decimal-comma.csv", ";", ",", 0), ("tab.txt", "\t", ".", 0), ("pipe.txt", "|", ".", 0),
    ("preamble.csv", ",", ".", 6), ("quoted-newline.csv", ",", ".", 0), ("quoted-quote.csv", ",", ".", 0), ("exponents.csv", ",", ".", 0),
    ("blank-cells.csv", ",", ".", 0), ("no-final-line-end.csv", ",", ".", 0), ("utf8-bom.csv", ",", ".", 0), ("french.csv", ";", ",", 0),
    ("held-values.csv", ",", ".", 0), ("gps-repeated.csv", ",", ".", 0), ("wide.csv", ",", ".", 0),
]

for name, delim, decimal, skip in FILES:
    with open("../text/" + name, encoding="utf-8-sig", newline="") as f:
        rows = [r for r in csv.reader(f, delimiter=delim)][skip:]
    rows = [r for r in rows if r]
    print("==", name, len(rows) - 1, len(rows[0]))
    for col in range(min(len(rows[0]), 40)):
        out = []
        for r in rows[1:]:
            try:
                out.append(float(r[col].replace(decimal, ".")).hex())
            except ValueError:
                out.append("")
        print(",".join(out))
