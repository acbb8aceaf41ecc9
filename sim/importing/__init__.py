"""Network files from the tables of others: columns of any name, any separator, decimal mark and unit."""
