-- Firings that are offered for others' loads, and the loads that ride in them.

SET LOCAL lock_timeout = '5s';

-- offer is what a firing offers for others, its program, and what comes off besides its loads; null: it is not shared. The sum of
-- what comes off a shared firing is worked out from its offer and its loads; firing_releases holds it too, for servers that know
-- of none.
ALTER TABLE firings
    ADD COLUMN offer jsonb,
    ADD CONSTRAINT firings_offer_object CHECK (offer IS NULL OR jsonb_typeof(offer) = 'object');

-- ride is the room and mass that a load takes in a shared firing, what it gives off and when; joined tells that the firing was
-- not booked for it. A firing has at most one load that did not join it.
ALTER TABLE loads
    ADD COLUMN ride jsonb,
    ADD COLUMN joined boolean NOT NULL DEFAULT false,
    ADD CONSTRAINT loads_ride_object CHECK (ride IS NULL OR jsonb_typeof(ride) = 'object'),
    ADD CONSTRAINT loads_joined_ride CHECK (NOT joined OR ride IS NOT NULL),
    DROP CONSTRAINT loads_state_known,
    ADD CONSTRAINT loads_state_known CHECK (state IN
        ('TENTATIVE', 'CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED', 'MISSED', 'EXPIRED', 'CANCELLED', 'UNPLACED'));

-- The few loads that ride in shared firings.
CREATE INDEX loads_riding ON loads (studio_key, firing_key) WHERE ride IS NOT NULL;

-- The fewer ones that wait for another firing.
CREATE INDEX loads_unplaced ON loads (studio_key, run_key) WHERE state = 'UNPLACED';

---- create above / drop below ----

DROP INDEX loads_unplaced;
DROP INDEX loads_riding;
UPDATE loads SET state = 'CANCELLED' WHERE state = 'UNPLACED';
ALTER TABLE loads
    DROP CONSTRAINT loads_state_known,
    ADD CONSTRAINT loads_state_known CHECK (state IN
        ('TENTATIVE', 'CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED', 'MISSED', 'EXPIRED', 'CANCELLED')),
    DROP COLUMN joined, DROP COLUMN ride;
ALTER TABLE firings DROP COLUMN offer;
