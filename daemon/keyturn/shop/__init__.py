"""What everything shares: folders, settings, rules, reasons, records, durable files."""
