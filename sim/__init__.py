"""A bench in virtual time: media, mats, room and probes."""
