"""What the kit can do for a device, and which take comes next, with its cautions."""
