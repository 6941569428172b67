"""What the technician reads: the trend report of each kiln, the studio page, the visit sheet, pictures and files."""
