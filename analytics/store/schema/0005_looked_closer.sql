-- Schema version 5: whether the crew had the look-closer list in hand (empty: no). What such an
-- inspection finds says nothing about what the list is worth.
ALTER TABLE facts.inspections ADD COLUMN looked_closer BOOLEAN;
