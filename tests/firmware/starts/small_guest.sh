#!/busybox sh
# The first and only program of the small guest: says each disk and each volatile variable as an event, and
# switches the machine off.
/busybox mkdir -p /proc /sys /bin /dev
/busybox --install -s /bin
export PATH=/bin
mount -t proc proc /proc
mount -t sysfs sys /sys
mount -t devtmpfs dev /dev
for module in /modules/*.ko; do
    insmod "$module"
done
mount -t efivarfs vars /sys/firmware/efi/efivars

disks=$(sed 's/.*disks=\([0-9]*\).*/\1/' /proc/cmdline)
# The kernel looks for USB disks in its own time.
while [ "$(ls -d /sys/class/block/*/device 2>/dev/null | wc -l)" -lt "$disks" ]; do
    usleep 100000
done

cd /sys/class/block
for name in *; do
    [ -e "$name/device" ] || continue
    files=
    for file in size removable dev nsid queue/logical_block_size device/model; do
        [ -e "$name/$file" ] || continue
        files="$files${files:+, }\"$file\": \"$(sed 's/ *$//' "$name/$file")\""
    done
    printf '\n@{"name": "%s", "link": "%s", "files": {%s}, "ports": {}}\n' "$name" "$(readlink "$name")" "$files"
done

cd /sys/firmware/efi/efivars
for name in *; do
    value=$(hexdump -ve '1/1 "%02x"' "$name")
    case $value in
        ?[02468ace]*) printf '\n@{"variable": "%s", "value": "%s"}\n' "$name" "$value" ;;
    esac
done
poweroff -f
