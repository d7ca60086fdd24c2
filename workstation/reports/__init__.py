"""What leaves the program on paper or as data: the grading record and the CSV of a session."""

from workstation.reports.csv_export import export_csv
from workstation.reports.record import SCHEMA, error_record, record, record_line

__all__ = ["SCHEMA", "error_record", "export_csv", "record", "record_line"]
