"""The report of a plan: page, print, drawings and the scene on bone."""

from rimwright.report.composition import PlanMark
from rimwright.report.writing import ReportFiles, write_report, write_scene

__all__ = ["PlanMark", "ReportFiles", "write_report", "write_scene"]
