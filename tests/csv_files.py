"""CSV files as our own results write them: comment lines first, then a head, then rows."""

import csv


def csv_comments(path):
    """Text of the comment lines."""
    with open(path, encoding="utf-8") as file:
        return [line[2:].rstrip("\n") for line in file if line.startswith("# ")]


def csv_rows(path):
    """Head and rows, each a list of texts."""
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.reader(line for line in file if not line.startswith("#")))


def csv_records(path):
    """Rows as dicts by the names of the head."""
    head, *rows = csv_rows(path)
    return [dict(zip(head, row, strict=True)) for row in rows]
