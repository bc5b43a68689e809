"""What each key of the configuration means, in a phrase: apart from the models, so that those
read as a table of keys. A test holds that no key lacks its phrase and no phrase its key."""

from __future__ import annotations

from collections.abc import Mapping

_POST = {
    "url": "Address, beginning with https://, or http:// for this machine.",
    "timeout_seconds": "How long one attempt may take.",
    "secret_file": "File that holds the secret, without the white space around it.",
    "secret_credential": "Name of the systemd credential that holds the secret instead.",
    "secret_header": "Header that the secret is sent in.",
    "secret_prefix": "What stands before the secret in that header.",
    "authority_file": "Certificates of the authorities to trust, instead of the system's.",
}

MEANING: Mapping[str, Mapping[str, str]] = {
    "probe": {
        "longest_burst_seconds": "No place is begun later than this in a burst.",
        "interval_half_width": "Reading ends once the rate is known to this share of itself.",
        "max_seconds": "Reading of one drive in one pass, at most.",
        "max_bytes": "The same in bytes, for each drive that shares the work.",
        "own_file_bytes": "Size of an own file, where a raw device may not be opened.",
        "own_file_directories": "Where such files may lie; the state directory is always one.",
    },
    "write_probe": {
        "enabled": "Whether `run` writes on schedule. `check --write` needs `directories` only.",
        "interval_seconds": "Between two write probes of one array or drive.",
        "directories": "Where the own file may lie: one directory on each array.",
        "file_bytes": "Size of the own file.",
        "burst_bytes": "What one probe writes, over the file again where it is more.",
        "longest_seconds": "A probe ends after this time, whatever it has written.",
        "transfer_bytes": "Written at once; whole steps of 4 KiB.",
        "keep_file": "Whether the file stays for the next time.",
    },
    "run": {
        "interval_seconds": "From the end of a pass to the beginning of the next.",
        "listen_address": "Of the page and the metrics; others than this machine's own addresses "
        "need `[exposure]`.",
        "listen_port": "0 lets the kernel choose one; `run` says which as it starts.",
    },
    "exposure": {
        "certificate_file": "The certificate, with those that lead to an authority after it.",
        "key_file": "Its private key.",
        "key_credential": "Name of the systemd credential that holds the key instead.",
        "username": "Name that a scraper must give.",
        "password_file": "Password that a scraper must give.",
        "password_credential": "Name of the systemd credential that holds the password instead.",
    },
    "watching": {
        "frames_per_second": "Of the material that is worked on: stalls are counted in its frames.",
    },
    "budget": {
        "hour_bytes": "Read of each drive, and written to it, in any hour.",
        "hour_seconds": "Time in which each drive may be probed in any hour.",
        "day_bytes": "The same in any day.",
        "day_seconds": "The same in any day.",
        "endurance_share_per_year": "Of what a drive endures, for write probes.",
        "quiet_hours": "Local times in which nothing is probed on schedule, as '22:00-06:00'.",
    },
    "journal": {
        "enabled": "Whether incidents are written to the journal.",
        "least_severity": "Lesser incidents are left out.",
    },
    "webhook": {
        **_POST,
        "name": "What messages still to be sent are kept under; the address where it is left out.",
        "least_severity": "Lesser incidents are left out.",
    },
    "notify": {
        "name": "What messages still to be sent are kept under.",
        "least_severity": "Lesser incidents are left out.",
        "urls_file": "File of addresses, one a line.",
        "urls_credential": "Name of the systemd credential that holds them instead.",
    },
    "telling": {
        "give_up_after_seconds": "How long a message is tried before it is given up.",
    },
    "heartbeat": {
        **_POST,
        "interval_seconds": "Between two signs of life.",
    },
    "parity": {
        "mb_per_second": "Decimal, of data; by the agent's own short benchmark where left out.",
    },
    "drive": {
        "match": "Name, serial number or stable id of the drive.",
        "read_mb_per_second": "Decimal, by its data sheet.",
        "write_mb_per_second": "Decimal; without it a measured write has nothing to be held to.",
        "endurance_terabytes_written": "Decimal, by its data sheet; 100 times its size where left "
        "out.",
    },
    "footage": {
        "array": "Name, path or stable id of the array.",
        "name": "What it is called; codec, picture and rate where left out.",
        "codec": "As `arraygauge footage` lists them.",
        "raster": "Such as 'UHD' or '3840x2160'.",
        "frames_per_second": "A number, or a text such as '24000/1001'; 23.976, 29.97 and the "
        "like are taken as 24000/1001, 30000/1001.",
        "megabits_per_second": "The rate alone, instead of codec, raster and frames.",
        "streams": "Played at once; without it, it is only said how many the array carries.",
        "headroom": "Share of the array's rate that is left free.",
        "transfer_bytes": "What a player reads at once; whole steps of 4 KiB.",
    },
    "uplink": {
        "name": "What it is called where it sets the pace.",
        "devices": "Patterns of device names, stable ids, or names of links on their path.",
        "read_mb_per_second": "Decimal, what it carries of data towards the processor.",
        "write_mb_per_second": "Decimal, away from it; as much as for reading where left out.",
        "lanes": "Instead of a rate: how many lanes it has.",
        "gigatransfers_per_second": "Instead of a rate: each lane's signalling rate.",
        "encoding": "Of the lanes; PCI Express, its packets included, where left out.",
        "reserved_share": "What its other users take.",
        "full_duplex": "Whether reads and writes go at once, or share it.",
    },
}
