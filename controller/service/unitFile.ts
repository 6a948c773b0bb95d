/** What a service is made of. */
export type ServiceOrder = {
  /** The program and its arguments. */
  readonly command: readonly string[];
  readonly exposureSecondsMax: number;
};

/**
 * From the asking for an end to its being forced: the frame in hand, then the dark frame that a
 * camera may take of itself, as long again, the files that are still fetched, and the contact that
 * opens. Chosen generously, since it costs nothing.
 */
const BEYOND_EXPOSURE_SECONDS = 120;

/**
 * The most that systemd.resource-control(5) has, beside the user's other programs: the
 * shutter is moved sooner then, with no right to real-time scheduling (`npm run bench`, shutterOrdinary:
 * a group of that weight). It takes effect where the user's manager has the processor's controller.
 */
const CPU_WEIGHT = 10_000;

/** How much of the sandbox a unit asks for, the most first. */
export const WALLS = ["all", "granted", "none"] as const;
export type Walls = (typeof WALLS)[number];

/**
 * What a user's manager can only do in a user namespace: without one the unit does not start (tried
 * with systemd 252). `ProtectKernelLogs` and `ProtectKernelTunables` are not among it: they were
 * what kept a unit from starting in a container where the rest was granted.
 */
const NAMESPACE_WALLS = `CapabilityBoundingSet=
PrivateUsers=yes
ProtectKernelModules=yes
`;

// Without a user namespace the exposure of 5.7, or 6.6 without mounts, cannot be brought below 5.0:
// the capabilities make out more than 2 of it, and CapabilityBoundingSet, ProtectClock,
// ProtectKernelLogs and ProtectKernelModules end a unit with status 218, User with 216 (systemd 252, tried).

/** What the manager leaves out by itself where the system does not grant it (systemd 252, tried). */
const MOUNT_WALLS = `PrivateMounts=yes
ProtectControlGroups=yes
ProtectHostname=yes
ProtectProc=invisible
ProtectSystem=full
`;

/** A folder for temporary files of its own, unless something that it needs lies in the common one. */
function temporaryWall(command: readonly string[]): string {
  return command.some((word) => TEMPORARY.test(word)) ? "" : "PrivateTmp=yes\n";
}
const TEMPORARY = /(?:^|[=:]|:\/\/)(?:\/var)?\/tmp(?:\/|$)/;

/**
 * The systemd user unit, as systemd.service(5), systemd.exec(5) and systemd.kill(5) describe it.
 *
 * It starts with the user's manager and outlives every failure; a night that ended in order, or was
 * stopped, ends with code 0 and stays so. The frame in hand ends before the rest of the processes
 * is asked to (`KillMode=mixed`). Node cannot send a datagram to the manager's socket: a
 * `systemd-notify` of ours does, hence `NotifyAccess=all`.
 *
 * The sandbox is what a user's manager can give and USB, serial and HID leave possible: no device
 * rules, no memory lock against a just-in-time compiler, no ban on real-time scheduling.
 *
 * @param walls  With what needs namespaces, too, which not every system grants a user; a unit that
 *   asks for them in vain does not start.
 */
export function unitFile(
  { command, exposureSecondsMax }: ServiceOrder,
  { walls }: { readonly walls: Walls },
): string {
  const longest = Math.ceil(exposureSecondsMax);
  const namespaceWalls = walls === "all" ? NAMESPACE_WALLS : "";
  const mountWalls = walls === "none" ? "" : MOUNT_WALLS + temporaryWall(command);
  return `[Unit]
Description=Nattvakt, an unattended night watch
StartLimitIntervalSec=600
StartLimitBurst=20

[Service]
Type=notify
NotifyAccess=all
ExecStart=${command.map(unitWord).join(" ")}
Restart=on-failure
RestartSec=5
TimeoutStartSec=120
TimeoutStopSec=${2 * longest + BEYOND_EXPOSURE_SECONDS}
WatchdogSec=${longest + BEYOND_EXPOSURE_SECONDS}
KillMode=mixed
CPUWeight=${CPU_WEIGHT}
UMask=0077
NoNewPrivileges=yes
LockPersonality=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6 AF_NETLINK
RestrictNamespaces=yes
RestrictSUIDSGID=yes
SystemCallArchitectures=native
SystemCallErrorNumber=EPERM
SystemCallFilter=@system-service
SystemCallFilter=~@privileged
${namespaceWalls}${mountWalls}
[Install]
WantedBy=default.target
`;
}

/** A word as `ExecStart` takes it: quoted, with its specifiers and variables doubled. */
function unitWord(word: string): string {
  const escaped = word.replace(/[\\"]/g, "\\$&").replace(/[%$]/g, "$&$&");
  return `"${escaped}"`;
}
