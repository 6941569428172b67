"""What a person may set: the kiln register, the logbook's form, typed settings, and the wording of findings."""
