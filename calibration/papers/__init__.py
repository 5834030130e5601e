"""Papers of a calibration session: its record, its certificate, its files."""

from calibration.papers.certificate import certificate_pdf, certificate_refusal
from calibration.papers.session_files import session_json, session_workbook
from calibration.papers.session_record import session_record_pdf

__all__ = [
    "certificate_pdf",
    "certificate_refusal",
    "session_json",
    "session_record_pdf",
    "session_workbook",
]
