-- What joins a shared firing holds nothing of its own.
-- What firings that start within a window hold and draw, of one department, without some. Reads through firings_during.
-- name: SumUses :one
SELECT coalesce(sum(extract(epoch FROM upper(f.during) - lower(f.during))) / 3600, 0)::double precision AS furnace_hours,
    coalesce(sum((
        SELECT sum(p.kilowatts * extract(epoch FROM p.end_time - p.start_time)) / 3600
        FROM firing_phases p WHERE p.studio_key = f.studio_key AND p.firing_key = f.firing_key
    )), 0)::double precision AS kilowatt_hours
FROM firings f
JOIN equipment e ON e.studio_key = f.studio_key AND e.equipment_key = f.furnace_key
JOIN loads l ON l.studio_key = f.studio_key AND l.firing_key = f.firing_key AND NOT l.joined
    AND (f.offer IS NULL OR l.state IN ('TENTATIVE', 'CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED'))
JOIN runs r ON r.studio_key = l.studio_key AND r.run_key = l.run_key
WHERE f.studio_key = @studio_key
    AND f.during && tstzrange(@window_start::timestamptz, @window_end::timestamptz)
    AND lower(f.during) >= @window_start::timestamptz AND lower(f.during) < @window_end::timestamptz
    AND r.department = @department
    AND (f.state IN ('CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED')
        OR f.state = 'TENTATIVE' AND (r.hold_expire_time IS NULL OR r.hold_expire_time > @at::timestamptz))
    AND (cardinality(@furnace_ids::text[]) = 0 OR e.equipment_id = ANY (@furnace_ids::text[]))
    AND f.firing_key <> ALL (@except_keys::bigint[]);

-- For how long a maker holds furnaces from now on, and what was missed since, without some.
-- name: SumUnused :one
SELECT coalesce(sum(extract(epoch FROM upper(f.during) - lower(f.during))) / 3600, 0)::double precision AS furnace_hours
FROM firings f
JOIN loads l ON l.studio_key = f.studio_key AND l.firing_key = f.firing_key AND NOT l.joined
    AND (f.offer IS NULL OR l.state IN ('TENTATIVE', 'CONFIRMED', 'UNDER_FIRE', 'DRAWN', 'STOPPED'))
JOIN runs r ON r.studio_key = l.studio_key AND r.run_key = l.run_key
WHERE f.studio_key = @studio_key
    AND f.during && tstzrange(@missed_since::timestamptz, NULL)
    AND r.maker = @maker
    AND (lower(f.during) >= @at::timestamptz AND (f.state = 'CONFIRMED'
            OR f.state = 'TENTATIVE' AND (r.hold_expire_time IS NULL OR r.hold_expire_time > @at::timestamptz))
        OR f.state = 'MISSED' AND lower(f.during) >= @missed_since::timestamptz)
    AND f.firing_key <> ALL (@except_keys::bigint[]);
