"""One invented season in every form a log comes in, written by general-purpose libraries: pandas with openpyxl (XLSX),
odfpy (ODS), pyarrow (Parquet) and XlsxWriter. Run in this folder: python make.py

Every mounting has three readings m - d, m, m + d in eighths, so that its mean and standard deviation are exact and
the summarised form says bit for bit what the readings say.
"""

import datetime

import numpy as np
import openpyxl
import pandas as pd

LEVEL = {"heron": -24.0, "plover": -25.5, "avocet": -23.25, "dunlin": -27.125}
BANDS = {"2 m": 0.0, "70 cm": -6.5}
DAYS = ["2026-04-11", "2026-05-09", "2026-06-13", "2026-07-18"]

rng = np.random.default_rng(7)
eighths = lambda sd: round(rng.normal(0, sd) * 8) / 8

rows = []
for day in DAYS:
    shift = {band: eighths(0.5) for band in BANDS}
    for antenna, level in LEVEL.items():
        visit = {band: eighths(0.4) for band in BANDS}
        for mounting in (1, 2):
            middle = {b: level + step + shift[b] + visit[b] + eighths(0.3) for b, step in BANDS.items()}
            spread = {b: rng.choice([0.125, 0.25, 0.375]) for b in BANDS}
            for band in BANDS:
                for times in (-1, 0, 1):
                    rows.append([day, antenna, band, "field", "field_strength", middle[band] + times * spread[band], mounting])

log = pd.DataFrame(rows, columns=["session", "antenna", "band", "meter", "quantity", "value", "mounting"])
log.to_csv("log.csv", index=False)
log.to_csv("semicolons.csv", index=False, sep=";", decimal=",", lineterminator="\r\n", encoding="utf-8-sig")
log.to_csv("utf16.csv", index=False, encoding="utf-16")
log.to_parquet("log.parquet", index=False)

dated = log.assign(session=[datetime.date.fromisoformat(day) for day in log.session])
with pd.ExcelWriter("log.xlsx", engine="openpyxl") as book:
    dated.to_excel(book, index=False, sheet_name="log")
    pd.DataFrame().to_excel(book, index=False, sheet_name="empty")
with pd.ExcelWriter("log.ods", engine="odf") as book:
    dated.to_excel(book, index=False, sheet_name="log")

# wide: a row a mounting, a column a band and repeat, under a title in merged cells
key = ["session", "antenna", "mounting"]
numbered = log.assign(nth=log.groupby(key + ["band"]).cumcount() + 1)
wide = numbered.pivot(index=key, columns=["band", "nth"], values="value")
order = log[key].drop_duplicates()
book = openpyxl.Workbook()
sheet = book.active
sheet.title = "field"
sheet.append(["Lowland search team, field strength"])
sheet.merge_cells("A1:I1")
sheet.append(["Day", "Whip", "Mounted"] + [f"{band} #{nth}" for band, nth in wide.columns])
for place in order.itertuples(index=False):
    sheet.append([datetime.date.fromisoformat(place[0]), place[1], place[2]] + list(wide.loc[tuple(place)]))
book.save("wide.xlsx")

# summarised: what the SQL on the page of forms makes
def summary(x):
    return pd.Series({"value": x.mean(), "readings": len(x), "sd": x.std(ddof=1)})

by = ["session", "antenna", "band", "meter", "quantity", "mounting"]
summarised = log.groupby(by, sort=False)["value"].apply(summary).unstack().reset_index()
summarised["readings"] = summarised["readings"].astype(int)
summarised.to_csv("summarised.csv", index=False)

# two sheets, with dates, a time, a formula with the value last worked out, and merged cells
import xlsxwriter

book = xlsxwriter.Workbook("two-sheets.xlsx", {"default_date_format": "yyyy-mm-dd"})
header = ["session", "antenna", "band", "meter", "quantity", "value", "when"]
moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
spring = book.add_worksheet("spring")
spring.write_row(0, 0, header)
for line in (1, 2):
    spring.write_datetime(line, 0, datetime.date(2026, 4, 11))
    spring.write_row(line, 2, ["2 m", "inline", "swr"])
    spring.write_formula(line, 5, "=3/2", None, 1.5)
    spring.write_datetime(line, 6, datetime.datetime(2026, 4, 11, 14, 30), moment)
spring.merge_range(1, 1, 2, 1, "heron")
summer = book.add_worksheet("summer")
summer.write_row(0, 0, header)
for line in (1, 2):
    summer.write_row(line, 0, ["s2", "heron", "2 m", "inline", "swr", 1.25])
book.close()
