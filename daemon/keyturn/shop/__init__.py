"""What all other folders use: the shop's folders, settings and rules, reasons, records and durable files."""
