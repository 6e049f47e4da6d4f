/* Says where the firmware loaded it from, then does what this variant is for (see programs.py):
   LEAVE undefined: switches the machine off; LEAVE: returns that status, as a menu does that a person leaves. */
#include "say.h"

EFI_STATUS efi_main(EFI_HANDLE image, EFI_SYSTEM_TABLE *table) {
    open_port(table);
#ifdef LEAVE
    begin(image, "left");
    end();
    return LEAVE;
#else
    begin(image, "started");
    end();
    power_off();
    return EFI_ABORTED;
#endif
}
