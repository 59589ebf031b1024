"""What an audit found, in lines for people."""

from greaseroute.audit.finding import AuditReport


def finding_lines(report: AuditReport) -> tuple[str, ...]:
    """Every finding on a line; none where the plan is good."""
    return tuple(finding.line() for finding in report.findings)


def summing_up(report: AuditReport) -> str:
    """How many findings, and what was looked at, on one line."""
    seen, count = report.looked_at, len(report.findings)
    found = "no findings" if count == 0 else f"{count} finding{'s' if count > 1 else ''}"
    looked_at = ", ".join(f"{n} {what}" for what, n in seen.items() if n)
    return f"Audit of {report.file}: {found}; from the raw files: {looked_at}"
