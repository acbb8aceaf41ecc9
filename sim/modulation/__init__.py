"""The study of adaptive against fixed modulation: cases, findings, tables, pictures."""
