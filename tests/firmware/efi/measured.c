/* Says the firmware's log of measurements, crypto agile and in the form of SHA-1 only, and switches off. */
#include "say.h"

/* TCG EFI Protocol Specification, family 2.0, §6: up to the one that is called. */
typedef struct EFI_TCG2_PROTOCOL {
    void *get_capability;
    EFI_STATUS (*get_event_log)(struct EFI_TCG2_PROTOCOL *self, UINT32 format, UINT64 *log, UINT64 *last, BOOLEAN *cut);
} EFI_TCG2_PROTOCOL;

static const EFI_GUID TCG2 = {0x607f766c, 0x7455, 0x42be, {0x93, 0x0b, 0xe4, 0xd7, 0x6d, 0xb2, 0x72, 0x0f}};
enum { OLD = 1, AGILE = 2 };

static UINT32 u16_at(const UINT8 *at) { return at[0] | (UINT32)at[1] << 8; }
static UINT32 u32_at(const UINT8 *at) { return u16_at(at) | u16_at(at + 2) << 16; }

static UINTN digest_size(UINT32 algorithm) {
    switch (algorithm) {
    case 0x0004: return 20;
    case 0x000c: return 48;
    case 0x000d: return 64;
    default: return 32;
    }
}

/* Where the event ends: the protocol only says where the last one begins. The first one has the old form. */
static const UINT8 *end_of(const UINT8 *event, int agile) {
    if (!agile)
        return event + 32 + u32_at(event + 28);
    const UINT8 *at = event + 12;
    for (UINT32 count = u32_at(event + 8); count; count--)
        at += 2 + digest_size(u16_at(at));
    return at + 4 + u32_at(at);
}

static void say_log(EFI_TCG2_PROTOCOL *tpm, UINT32 format, const char *name) {
    UINT64 log = 0, last = 0;
    BOOLEAN cut = 0;
    EFI_STATUS status = tpm->get_event_log(tpm, format, &log, &last, &cut);
    put("\r\n@{\"event\": \"log\", \"format\": \"");
    put(name);
    put("\", \"data\": ");
    if (FAILED(status) || !log) {
        put("null");
    } else {
        const UINT8 *start = (const UINT8 *)(UINTN)log;
        const UINT8 *end = end_of((const UINT8 *)(UINTN)last, format == AGILE && last != log);
        put_bytes(start, (UINTN)(end - start));
    }
    end();
}

EFI_STATUS efi_main(EFI_HANDLE image, EFI_SYSTEM_TABLE *table) {
    EFI_TCG2_PROTOCOL *tpm = 0;
    open_port(table);
    begin(image, "started");
    end();
    if (!FAILED(table->boot->locate_protocol(&TCG2, 0, (void **)&tpm))) {
        say_log(tpm, AGILE, "agile");
        say_log(tpm, OLD, "old");
    }
    power_off();
    return EFI_ABORTED;
}
