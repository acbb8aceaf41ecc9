"""From the file's entries to a hop in numbers, and from rain, fades and equipment to its timeline."""
