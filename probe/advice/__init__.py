"""What each way of connecting the measured stage to a destination will do; reads facts only."""
