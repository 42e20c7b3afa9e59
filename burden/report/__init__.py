"""What a vet reads: HTML, figures, tables and the calendar. The only room that draws."""

from __future__ import annotations

from burden.report.write import ReportResult, write_reports

__all__ = ["ReportResult", "write_reports"]
