/** What a service is made of. */
export type ServiceOrder = {
  /** The program and its arguments. */
  readonly command: readonly string[];
  readonly exposureSecondsMax: number;
};

/**
 * From the asking for an end to its being forced: the frame in hand, then its readout, the files
 * that are still fetched, and the contact that opens. Chosen generously, since it costs nothing.
 */
const BEYOND_EXPOSURE_SECONDS = 120;

/**
 * What needs namespaces. `ProtectKernelLogs` and `ProtectKernelTunables` are not among it: they were
 * what kept a unit from starting where the rest was granted (systemd 252 in a container).
 */
const WALLS = `CapabilityBoundingSet=
PrivateMounts=yes
PrivateTmp=yes
PrivateUsers=yes
ProtectControlGroups=yes
ProtectHostname=yes
ProtectKernelModules=yes
ProtectProc=invisible
ProtectSystem=full
`;

/**
 * The systemd user unit, as systemd.service(5), systemd.exec(5) and systemd.kill(5) describe it.
 *
 * It starts with the user's manager and outlives every failure; a night that ended in order, or was
 * stopped, ends with code 0 and stays so. The frame in hand ends before the rest of the processes
 * is told to (`KillMode=mixed`). Node cannot send a datagram to the manager's socket: a
 * `systemd-notify` of ours does, hence `NotifyAccess=all`.
 *
 * The sandbox is what a user's manager can give and USB, serial and HID leave possible: no device
 * rules, no memory lock against a just-in-time compiler, no ban on real-time scheduling.
 *
 * @param isWalledOff  With what needs namespaces, too, which not every system grants a user; a unit
 *   that asks for them in vain does not start.
 */
export function unitFile(
  { command, exposureSecondsMax }: ServiceOrder,
  { isWalledOff }: { readonly isWalledOff: boolean },
): string {
  const seconds = Math.ceil(exposureSecondsMax) + BEYOND_EXPOSURE_SECONDS;
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
TimeoutStopSec=${seconds}
WatchdogSec=${seconds}
KillMode=mixed
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
${isWalledOff ? WALLS : ""}
[Install]
WantedBy=default.target
`;
}

/** A word as `ExecStart` takes it: quoted, with its specifiers and variables doubled. */
function unitWord(word: string): string {
  const escaped = word.replace(/[\\"]/g, "\\$&").replace(/[%$]/g, "$&$&");
  return `"${escaped}"`;
}
